"""The dashboard: thin Streamlit pages over `riskrules.view`. No page computes."""
