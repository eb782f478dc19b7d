"""Photos, notes and truth of an invented studio: data only, read by `swatchvault demo`."""
