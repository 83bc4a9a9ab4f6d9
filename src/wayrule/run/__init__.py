"""From a recording to travel: axle angle, distance, speed, state and attitude, each with its sigma."""
