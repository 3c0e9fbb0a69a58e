"""What pages show: read-only joins over every capability's tables. It owns no table."""
