"""The knowledge of the trade: models, YAML with places, loading and checking."""
