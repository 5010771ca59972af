"""Bad inputs, made by the thousand: what the tool makes of files, commands and signals that nobody would wish for."""
