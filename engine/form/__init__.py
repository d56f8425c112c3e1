"""What the page says: sections, phrases, twins, line, figure, harmony, spelling."""
