"""One specimen's record: models and a store that loses nothing."""
