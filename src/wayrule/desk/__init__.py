"""The desk: the verbs, files in and results out, as the command line, the pages and a notebook ask for them."""
