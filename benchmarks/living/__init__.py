"""What the live area is made of."""
