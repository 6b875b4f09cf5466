"""The screens, all that imports Streamlit; pages stand in `views`."""
