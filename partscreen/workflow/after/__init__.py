"""What comes after the judgement: which parts go together, the stage, the supplier, how many to test."""
