"""Forward chaining: rules compiled once to experta, consulted per case."""
