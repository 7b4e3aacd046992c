"""The proof of one site: every scenario and guard check, and the verdict they lead to."""
