"""The channels stage has no settings, no method touches it; like every stage it has a revision of its numbers."""

REVISION = 4
