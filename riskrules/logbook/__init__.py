"""The logs of a farm: taken in, followed, accounted for, and watched for silence."""
