"""Whether the instrument can be trusted, run by run: one card, its items each a file or a part of one."""
