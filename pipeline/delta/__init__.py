"""What a change of method did: settings, stops, conclusions, and whether earlier sheets remain comparable."""
