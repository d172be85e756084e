"""From conclusions to ordered, complete steps."""
