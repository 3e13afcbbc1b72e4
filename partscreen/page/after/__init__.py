"""What comes after the judgement: matching, papers, plans, the output stage."""
