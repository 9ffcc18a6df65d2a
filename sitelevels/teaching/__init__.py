"""Books to practise on, the working of each, and the marking of what a learner wrote."""
