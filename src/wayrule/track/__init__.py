"""From travel to track: placing the runs, adjusting them to one line, its elements and its faults."""
