"""Two compounds side by side."""
