"""Records to costed job lines: hours, labour, film and overhead of each."""
