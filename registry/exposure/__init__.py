"""What works on a joint: vibration, thermal cycling, the fluid."""
