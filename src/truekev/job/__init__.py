"""One module per question of the job; joins the rooms below and returns one result."""
