"""worklist"""
