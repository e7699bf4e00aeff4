"""An agreed zone is approved, and production parts are held against it."""
