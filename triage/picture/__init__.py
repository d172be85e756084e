"""What a photograph can show and what it tells of a pass: pure functions, files at the edge."""
