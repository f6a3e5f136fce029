"""From a printed number back to the files that it rests on, and whether results are still those of their files."""
