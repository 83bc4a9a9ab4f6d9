"""What the adjustment's figures are measured with: lines and runs, verdicts, the floor, cost, and a rival."""
