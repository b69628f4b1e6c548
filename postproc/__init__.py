"""From a result file to measures, verdict, pictures and report."""
