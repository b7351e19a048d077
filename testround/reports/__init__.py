"""What testers send: swatches, counts, finished measurements, sittings, remarks, photos."""
