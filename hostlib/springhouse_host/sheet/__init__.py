"""The parts of the sizing sheet that are more than one charge against one day."""
