"""Those who hold a pattern: its published errata go to them by mail, and to other programs."""
