"""Pure decisions: one step function from state and input to state, effects and next wake."""
