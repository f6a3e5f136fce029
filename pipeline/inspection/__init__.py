"""What a recording that nobody has seen is: its layout, its columns, its brakings, and which column may be which channel."""
