"""A compound on a duty cycle: disc temperature, share of energy in the window, wear, life, cooling opening."""
