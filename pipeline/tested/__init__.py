"""What was run, and how far the conditions of a conclusion lie from it."""
