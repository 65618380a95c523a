"""What is wrong with a car, and what is doubtful, once its file follows the grammar."""
