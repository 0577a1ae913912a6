"""Who may do what: scopes, roles, keys and the checks of a login; pure rules without I/O."""
