"""Bad inputs and surroundings, made by the thousand: what the tool makes of what nobody would wish for."""
