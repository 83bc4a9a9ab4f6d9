"""The desk in the browser: thin pages over the desk's verbs, one small file each; nothing is computed in a page."""
