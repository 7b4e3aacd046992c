"""From a log of the real installation to what labels leave open."""
