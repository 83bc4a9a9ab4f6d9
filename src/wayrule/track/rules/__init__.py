"""Published limits as data, and the rule sets made of them."""
