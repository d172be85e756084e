"""Why, why not, what if, what would change the plan, and which question to ask next."""
