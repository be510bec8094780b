"""What a run does, per frequency: power, standing waves, voltage, heat, reception, exposure."""
