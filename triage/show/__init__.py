"""What is shown, said once: a plan, a step, a finding, a limit, an answer become blocks here.

Each face draws the same blocks in its own way: plain lines, Markdown, HTML and PDF in this room,
the interface above it. May touch everything below; knows no terminal.
"""
