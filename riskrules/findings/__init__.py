"""findings"""
