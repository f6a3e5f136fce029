"""All tests of a compound together: its friction, wear, batches and duties."""
