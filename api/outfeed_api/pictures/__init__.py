"""Pictures of answers, drawn only when one is asked for; see `canvas` for how."""
