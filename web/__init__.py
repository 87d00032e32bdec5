"""Pages, styles and scripts that `server` sends to browsers; data only, no code to import."""
