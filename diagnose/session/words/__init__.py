"""The words of a diagnosis: cautions, job cards, and what a person may tell."""
