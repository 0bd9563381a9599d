"""What a value is worth: budgets after JCGM 100 (GUM), term by term."""
