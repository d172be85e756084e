"""Generators and second implementations shared by the tests."""
