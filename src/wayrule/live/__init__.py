"""From the moving wagon to the disk: links, the recorder, and what it knows while it records."""
