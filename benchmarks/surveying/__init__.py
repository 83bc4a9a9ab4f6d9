"""What the survey area measures: promised lines, lines drawn at random, and what a survey costs."""
