"""One machine: its layout, its string, the readings taken on it."""
