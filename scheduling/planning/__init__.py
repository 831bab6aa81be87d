"""From stored facts to a plan, and from the plan to open recalls."""
