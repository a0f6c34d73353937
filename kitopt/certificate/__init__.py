"""A proof that a stranger can check: a choice's last program with every row's origin, and what is made of it again."""
