"""From the database to lists, plans and readings taken apart; shared by command line, paper and screens; no Streamlit."""
