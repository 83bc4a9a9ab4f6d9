"""Mathematics without a railway word in it."""
