"""What the pages of the dashboard show: pure functions over what the library returns."""
