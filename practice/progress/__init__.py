"""Progress over days: what got better, told only when it is true."""
