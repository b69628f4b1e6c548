"""From a case file to a result file: case reading, air network, jets, flow, result files."""
