"""From parts to equations, and from equations to responses, recursions and ports."""
