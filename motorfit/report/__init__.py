"""What people look at: tables in the terminal, figures, and the page."""
