"""What every face of the tool (command line, interface, plain session) calls.

A workshop holds the knowledge, the folder of cases and the bench. Each method is one act of the
user: it reads the newest case, changes it through the store, and returns the new value.
"""
