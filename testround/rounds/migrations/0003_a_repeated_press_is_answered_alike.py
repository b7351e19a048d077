from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('rounds', '0002_round_moves_and_places_for_one'),
    ]

    operations = [
        migrations.AddField(
            model_name='invitation',
            name='used_key_hash',
            field=models.CharField(blank=True, max_length=64),
        ),
    ]
