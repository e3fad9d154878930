"""What a write-up was made from, and whether a folder that was published is what a rerun gives: file by file."""
