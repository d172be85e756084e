"""One module for each group of commands: parse, call a service, print."""
