"""Due checks laid into weeks against the crew's hours."""
