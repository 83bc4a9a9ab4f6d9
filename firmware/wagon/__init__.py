"""What the wagon's own microcontroller runs; see README.md beside this folder."""
