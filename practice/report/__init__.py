"""What is written down: reports, marked pages, tables, scores with slips, remarks."""
