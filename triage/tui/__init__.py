"""The interface at the scope."""
