"""Examples of every operation, in the invented scenario: the Fenlight Cardigan and the Quillwork Skirt."""
