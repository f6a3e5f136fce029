"""Before a test runs: what a program can show, from the archive's own scatter, and the smallest that can show it."""
