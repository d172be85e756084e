"""The interface in a browser on this machine."""
