"""The report: one HTML file that holds a proof or a run, with its charts, and asks no network."""
