"""What is wired to the board: pins, sums, parts, rules, drawings, from the board's profile."""
