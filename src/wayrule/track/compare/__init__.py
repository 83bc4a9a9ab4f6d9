"""Two surveys of one line, or a survey and its plan, held against each other along the track."""
