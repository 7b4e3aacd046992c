"""What a person touches on a computer: site files, sizing, proof, reports, commands."""
