"""Will it work, and how well: the wagon before metal is cut."""
