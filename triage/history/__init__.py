"""What the records of a folder say: evidence, the bench day, chambers, history, sharing."""
