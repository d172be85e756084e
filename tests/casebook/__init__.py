"""Published accounts of real work, each written down before the plan was looked at."""
