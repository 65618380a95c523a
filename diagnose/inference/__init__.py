"""The Bayesian network over the causes, and the next step it proposes."""
